#!/bin/sh
# Starts the broker with its password from a file, which must not be an argument.
set -eu
password=$(cat "${MILLRACE_SECRETS:-/run/secrets}/broker_password")
exec "${BROKER:-redis-server}" - <<CONFIG
requirepass $password
port ${BROKER_PORT:-6379}
dir ${BROKER_DATA:-/data}
appendonly yes
appendfsync everysec
save ""
maxmemory 256mb
maxmemory-policy noeviction
CONFIG
