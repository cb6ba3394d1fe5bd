"""One room: recommendation, reasons and evidence of each of its channels."""
