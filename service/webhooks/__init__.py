"""Lines of the feed, sent to whom they were promised: signed, in order, until they arrive or are given up."""
