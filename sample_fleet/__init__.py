"""An invented shop in an invented valley: the fleet that `mountbook demo` and the tests live on."""
