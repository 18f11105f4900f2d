"""How the host hears stations and answers them."""
