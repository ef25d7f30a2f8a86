"""Long simulations, run by hand, with a short seeded version of each among the tests."""
