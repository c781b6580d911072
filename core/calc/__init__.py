"""What the entries mean: pure functions, frames and numbers in, frozen results out."""
