"""Published families of designs, and starts that fill the region."""
