"""How words sound: phones of English words, of strange words, of Latin as teachers read it, and how near they are."""

from notesmith.sounds.distance import SoundCosts, load_costs
from notesmith.sounds.latin import latin_readings
from notesmith.sounds.phones import PHONES, pronounce, pronounce_text

__all__ = ["PHONES", "SoundCosts", "latin_readings", "load_costs", "pronounce", "pronounce_text"]
