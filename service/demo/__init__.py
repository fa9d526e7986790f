"""An invented metal-forming works, written as a plant folder and brought in by the ordinary import."""
