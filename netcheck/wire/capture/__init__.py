"""Capture files: `write` stores the frames of a run as pcapng, `read` reads pcap and pcapng files of other programs."""
