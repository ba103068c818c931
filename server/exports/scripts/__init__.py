"""Scripts that go with the files: Python and R read the codebook as they run; those of SPSS and Stata are written from the columns."""
