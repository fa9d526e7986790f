"""The one translator between the database's rows and the planner's columns."""
