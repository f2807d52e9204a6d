"""One file for each board, and what they share. Only board files know hardware, a clock or a port."""
