"""Reminders: the tick finds what is due, the outbox sends each message, channels carry it. Nothing here opens or scores an answer."""
