"""The only writer of timepoints and their transitions."""
