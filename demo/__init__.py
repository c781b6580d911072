"""An invented shop whose true numbers are known, and the entries its people would make."""
