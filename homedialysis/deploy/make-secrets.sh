#!/bin/sh
# Makes the secrets that docker-compose.yml reads, in ./secrets; leaves those that are there already.
set -eu
umask 077
mkdir -p secrets
cd secrets

random() {
    head -c 36 /dev/urandom | base64 | tr '+/' '-_' | tr -d '=\n'
}

[ -e secret_key ] || random >secret_key
[ -e database_password ] || random >database_password
if [ ! -e broker_config ] || [ ! -e broker_url ]; then
    password=$(random)
    printf 'requirepass %s\nbind * -::*\nsave ""\nappendonly no\nmaxmemory-policy noeviction\n' "$password" >broker_config
    printf 'redis://:%s@valkey:6379/0' "$password" >broker_url
fi
[ -e email_password ] || : >email_password
# By which push services know this installation: 32 random bytes, a number for the curve P-256.
[ -e push_key ] || head -c 32 /dev/urandom | base64 | tr '+/' '-_' | tr -d '=\n' >push_key
# Each container reads its own by another account; the folder itself is closed to everybody else.
chmod 444 secret_key database_password broker_config broker_url email_password push_key
echo "Secrets are in $(pwd). Keep a copy in a safe place; write the mail password into email_password."
