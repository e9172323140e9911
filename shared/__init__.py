"""The vocabulary: factors, responses, coupons, units, the trial folder and its problems."""
