"""Runs a command beside a server that speaks the S3 protocol, with an empty bucket `lakes` on it.

    pip install -r tests/lake/requirements.txt
    python3 tests/lake/with_s3.py cargo test --locked --test voltwane s3_store -- --ignored

The server is moto's; it keeps everything in memory and ends with the command. The environment names it to the
command as clients of that protocol expect.
"""

import logging
import os
import subprocess
import sys
import urllib.request

from moto.server import ThreadedMotoServer

logging.getLogger("werkzeug").setLevel(logging.ERROR)
server = ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
server.start()
host, port = server.get_host_and_port()
endpoint = f"http://{host}:{port}"
urllib.request.urlopen(urllib.request.Request(f"{endpoint}/lakes", method="PUT"), timeout=30)
names = {
    "AWS_ENDPOINT_URL": endpoint,
    "AWS_ALLOW_HTTP": "true",
    "AWS_ACCESS_KEY_ID": "invented",
    "AWS_SECRET_ACCESS_KEY": "invented",
    "AWS_REGION": "us-east-1",
}
ended = subprocess.run(sys.argv[1:], env=os.environ | names)
server.stop()
sys.exit(ended.returncode)
