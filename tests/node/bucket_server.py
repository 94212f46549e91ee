"""A store with buckets, kept in memory, on loopback: says where it answers, and ends with its caller."""

import sys

from moto.server import ThreadedMotoServer

server = ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
server.start()
host, port = server.get_host_and_port()
print(f"http://{host}:{port}", flush=True)
sys.stdin.read()
server.stop()
