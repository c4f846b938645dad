"""Documents people carry away: the training transcript and other prints."""
