"""Series of shoulders: whom a sentence means, and how many of all operations are left for a figure."""
