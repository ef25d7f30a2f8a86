"""What a plan can tell: precision, power, aliases, prediction variance, drop-outs."""
