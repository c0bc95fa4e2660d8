"""Weather: what loggers, stations and forecasts say, brought into one shape."""
