"""The invented demo: lots of a clamp cylinder with a known truth, and how they are shown."""
