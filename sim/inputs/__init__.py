"""What a person may say: trucks, settings, failures; read, checked and put together."""
