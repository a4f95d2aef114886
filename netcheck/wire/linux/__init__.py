"""What Linux alone offers: rtnetlink, carrier events and the classic BPF filter."""
