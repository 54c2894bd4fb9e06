"""How every figure looks: style, forest plot, terms of a model."""
