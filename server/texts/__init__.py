"""Licensed and descriptive texts: checked, installed, compared, decided on."""
