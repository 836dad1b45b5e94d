"""Documents: values of the other rooms as text and HTML that stand on their own."""
