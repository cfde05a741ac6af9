# Steps that install, upgrade, backup and restore share. Sourced by them, as root.
# shellcheck shell=bash

OPT=/opt/slabcast
ETC=/etc/slabcast
STATE=/var/lib/slabcast
ENV_FILE=$ETC/slabcast.env
ACCOUNT=slabcast
PROGRAMS=(web worker@forecast worker@verdicts worker@notices worker@plans clock)

say() { printf '== %s\n' "$*"; }

stop_with() {
    printf '%s\n' "$*" >&2
    exit 1
}

as_root() { [ "$(id -u)" = 0 ] || stop_with "Run this as root: sudo $0"; }

# Debian in a container or a chroot has systemd on disk but not running.
has_systemd() { [ -d /run/systemd/system ]; }

# One of Debian's own services: postgresql, redis-server, nginx, supervisor.
service_up() {
    if has_systemd; then
        systemctl enable --quiet --now "$1"
    else
        service "$1" status >/dev/null 2>&1 || service "$1" start >/dev/null
    fi
}

ours_start() {
    if has_systemd; then
        systemctl start slabcast.target
    else
        supervisorctl start 'slabcast:*' >/dev/null
    fi
}

# Ends when all have ended: each finishes what it is at, for 30 seconds at most.
ours_stop() {
    if has_systemd; then
        systemctl stop slabcast.target "${PROGRAMS[@]/#/slabcast-}"
    else
        supervisorctl stop 'slabcast:*' >/dev/null || true
    fi
}

# serve WORD...: deploy/scripts/serve of the current release, as the program's own user.
serve() { serve_of "$OPT/current" "$@"; }

serve_of() {
    local release=$1
    shift
    runuser -u "$ACCOUNT" -- env -i HOME="$STATE" PATH="$PATH" LANG=C.UTF-8 \
        SLABCAST_ENV_FILE="$ENV_FILE" "$release/deploy/scripts/serve" "$@"
}

# put_release TREE: copies a tree into a folder of its own with its packages; prints the folder.
put_release() {
    local tree=$1 name folder
    name=$(git -C "$tree" rev-parse --short HEAD 2>/dev/null || date -u +%Y%m%d%H%M%S)
    folder=$OPT/releases/$name
    if [ ! -f "$folder/.complete" ]; then
        rm -rf "$folder"
        mkdir -p "$folder"
        tar -C "$tree" --exclude=./.git --exclude='./.venv*' --exclude=./.demo \
            --exclude='*_cache' --exclude=__pycache__ -cf - . | tar -C "$folder" --no-same-owner -xf -
        # With Debian's own Python: one in a person's home is closed to the account.
        PATH=/usr/sbin:/usr/bin:/sbin:/bin "$folder/deploy/scripts/venv" >&2
        touch "$folder/.complete"
    fi
    printf '%s\n' "$folder"
}

# Changes which release runs, in one step.
point_at() {
    ln -sfn "$1" "$OPT/current.new"
    mv -T "$OPT/current.new" "$OPT/current"
}

# The site answers behind its proxy and has every migration; 60 seconds of patience.
wait_until_ready() {
    local host=$1
    for _ in $(seq 60); do
        if curl -skf --max-time 5 --noproxy '*' --resolve "$host:443:127.0.0.1" \
            "https://$host/readyz" >/dev/null; then
            return 0
        fi
        sleep 1
    done
    return 1
}

site_host() { sed -n 's#^SLABCAST_SITE_URL=https://##p' "$ENV_FILE" | tail -n 1; }
