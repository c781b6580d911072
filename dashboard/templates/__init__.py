"""All HTML: templates that escape what they are given."""
