"""What will be used, what runs out, what to order by when, and whether such forecasts came true."""
