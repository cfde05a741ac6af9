"""The planner's pure half: 0-1 column models, candidates, what a plan costs and why."""
