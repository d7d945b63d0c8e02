"""What people receive: audio files with tags, playlists, sheets and packs."""
