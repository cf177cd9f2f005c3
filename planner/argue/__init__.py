"""Why a plan is as it is: by solving again with one thing changed, never by guessing."""
