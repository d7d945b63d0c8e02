"""Real time to samples: pitch standards and scales, SoundFont, tone bank, splicing, drones, mix."""
