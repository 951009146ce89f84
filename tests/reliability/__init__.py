"""What happens when things go wrong: power, disk, clock, network, two hands at once, rubbish. See docs/reliability.md."""
