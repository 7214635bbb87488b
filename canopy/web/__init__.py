"""The page on the phone: requests in; pages, pictures and JSON out; photos are measured in processes apart."""
