"""Pictures: results in, `Picture` out. One module per family; `style` holds what they share."""
