"""How much bait, product and water: amounts, strengths, limits and the balance of what went out."""
