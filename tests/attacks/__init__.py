"""What strangers, other branches and hostile input must not get, route by route."""
