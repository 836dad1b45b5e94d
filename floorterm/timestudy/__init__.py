"""What the times of many changeovers teach: durations, control charts, minutes lost, OEE figures. Pure: states only."""
