"""The page of the clinic's privacy notice and consent texts, and the form that enters their versions."""
