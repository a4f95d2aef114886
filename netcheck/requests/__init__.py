"""What the plan requires from the site's IT department: reservations, DNS records, pools and firewall rules."""
