"""How forecasts of finished lives fared, by element type, as the last pass of the whole found it."""
