#!/bin/sh
# Makes a backup each day and keeps the last ones. A failure is said, and tried again in an hour.
set -eu
folder=${BACKUPS:-/backups}
keep=${BACKUPS_KEPT:-14}

while :; do
    # what an interrupted backup left: only one of these services runs
    rm -rf "$folder"/*.partial
    if python manage.py backup "$folder/$(date -u +%Y%m%dT%H%M%SZ)"; then
        find "$folder" -mindepth 1 -maxdepth 1 -type d -name '*Z' | sort -r |
            tail -n "+$((keep + 1))" | xargs -r rm -rf
        pause=${BACKUP_EVERY_S:-86400}
    else
        echo "The backup failed; next try in an hour." >&2
        pause=3600
    fi
    sleep "$pause" &
    wait $!
done
