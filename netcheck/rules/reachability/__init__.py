"""Whether packets arrive: routers and segments, and the path of each conversation in both directions."""
