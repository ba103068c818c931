"""Ways to reach a patient, a folder for each; README.md here is their contract."""
