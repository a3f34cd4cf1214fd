"""Records in, pages out: HTML, plots and pictures that need no server and load nothing from outside."""
