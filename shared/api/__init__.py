"""What every address of the API shares: tokens, refusals, pages, entity tags, repeated posts, limits."""
