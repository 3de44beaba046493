#!/bin/sh
# Turns secrets that lie in files into the settings' environment, then becomes the command.
# Passwords go into addresses, so they must be letters and digits, e.g. openssl rand -hex 32.
set -eu
secrets=${MILLRACE_SECRETS:-/run/secrets}

secret() {
    if ! value=$(cat "$secrets/$1"); then
        echo "The secret $secrets/$1 cannot be read: see docker-compose.yml." >&2
        exit 1
    fi
    case $value in
        '' | *[!A-Za-z0-9]*)
            echo "The secret $1 must be letters and digits: openssl rand -hex 32" >&2
            exit 1
            ;;
    esac
    printf '%s' "$value"
}

SECRET_KEY=$(secret secret_key)
db_password=$(secret db_password)
broker_password=$(secret broker_password)
DATABASE_URL="postgres://millrace:$db_password@${DB_ADDRESS:-db:5432}/millrace"
REDIS_URL="redis://:$broker_password@${BROKER_ADDRESS:-broker:6379}/0"
export SECRET_KEY DATABASE_URL REDIS_URL
if [ -s "$secrets/mail_password" ]; then
    MILLRACE_MAIL_PASSWORD=$(cat "$secrets/mail_password")
    export MILLRACE_MAIL_PASSWORD
fi
exec "$@"
