"""How far the fit can be trusted: influence, drift, past predictions, beliefs."""
