"""The demo: an invented co-operative, made through the services as its people would."""
