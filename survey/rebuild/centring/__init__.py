"""The timber: rib profile, boards, lagging, wedges and striking."""
