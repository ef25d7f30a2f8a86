"""The charge of every melt: what goes in, what glass it gives, what is weighed, bought and cooled how.

Knows the series and the glass; earlier melts come in as `EarlierMelt`, so that plans, fits and sheets can all ask.
"""
