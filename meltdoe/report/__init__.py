"""The write-up: sentences, tables and figures of a series, and the one page that holds them all."""
