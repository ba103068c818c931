"""The page on a series of shoulders: who in a sentence, and the flow from the log to those who answered."""
