"""E-mail: words and composition, and two ways out of the house, SMTP and a folder."""
