"""buildbook: a plain-text record of every engine a shop builds, with the balancing worked out and proven."""

__version__ = "0.1.0"
