"""The words of every step: what a cycle row, a unit life, a spec and a verdict consist of."""
