"""What was learned of this shop, as values: how long prints take, how hands work, what goes unnoted."""
