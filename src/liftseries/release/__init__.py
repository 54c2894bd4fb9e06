"""What leaves the house: the bundle `release/`, in which no count of few patients stands or can be worked out."""
