"""From one build spec to one consistent design."""
