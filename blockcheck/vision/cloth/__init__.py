"""The cloth on the mat: the mat's looks, candidates, and raw edges in the photo's own pixels."""
