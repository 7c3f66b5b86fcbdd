"""What a person sees: pictures, pages and sheets. Computes nothing."""
