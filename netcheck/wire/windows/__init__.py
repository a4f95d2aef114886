"""What Windows tells and does for any user, without a capture driver: adapters, routes, neighbours, echo requests."""
