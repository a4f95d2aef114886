"""The phases of one port: cable in, cable out, cable in again."""
