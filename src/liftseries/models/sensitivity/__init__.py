"""What could change the answers: unmeasured causes, overlooked tears, implants lost, how alike sites are."""
