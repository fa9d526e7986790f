"""Plants whose truth is known, with laws that the forecaster does not assume, and what is noted of them."""
