"""Tick, outbox and e-mail. Ada is the patient; her clinic keeps Madrid's time; everybody is invented."""
