"""What every chapter uses: numbers and names in words, blocks, the writer, what a run left."""
