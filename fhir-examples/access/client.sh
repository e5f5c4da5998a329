#!/usr/bin/env bash
# A client of a service that asks for tokens, with openssl and curl alone (SMART Backend Services).
#
#   ./client.sh register    makes a key if there is none, and prints the registration: the operator's Access:ClientsFile
#   ./client.sh call        gets a token, opens an irrigation, posts an Observation, reads it, and is refused what it was not granted
#
# BASE is the service, KEY the file of the client's key: it stays here, for its owner alone.
set -euo pipefail
BASE=${BASE:-http://localhost:5000}
KEY=${KEY:-client-key.pem}
ID=${ID:-bedside-gateway}
SCOPES='system/Procedure.cruds system/Observation.cruds'
here=$(cd "$(dirname "$0")" && pwd)

base64url() { openssl base64 -A | tr '+/' '-_' | tr -d '='; }

# The key's modulus, as bytes.
modulus() {
  local hex
  hex=$(openssl rsa -in "$KEY" -noout -modulus | cut -d = -f 2)
  printf '%b' "$(printf '%s' "$hex" | sed 's/../\\x&/g')"
}

# Its name: a digest of what is public about it, so that another key has another name.
kid() { modulus | openssl dgst -sha256 -binary | base64url; }

register() {
  [ -e "$KEY" ] || (umask 077 && openssl genpkey -algorithm RSA -pkeyopt rsa_keygen_bits:3072 -out "$KEY" 2> /dev/null)
  cat <<JSON
{
  "clients": [
    {
      "id": "$ID",
      "note": "Posts what the bedside monitors of the ward measure.",
      "scopes": ["${SCOPES// /\", \"}"],
      "keys": {
        "keys": [{ "kty": "RSA", "use": "sig", "alg": "RS384", "kid": "$(kid)", "n": "$(modulus | base64url)", "e": "AQAB" }]
      }
    }
  ]
}
JSON
}

# What stands behind a name in flat JSON.
member() { sed -n "s/.*\"$1\": *\"\([^\"]*\)\".*/\1/p"; }

# Signed for this one request: nobody can use it for another.
assertion() {
  local header claims
  header=$(printf '{"alg":"RS384","typ":"JWT","kid":"%s"}' "$(kid)" | base64url)
  claims=$(printf '{"iss":"%s","sub":"%s","aud":"%s","exp":%d,"jti":"%s"}' "$ID" "$ID" "$1" $(($(date +%s) + 240)) "$(openssl rand -hex 16)" | base64url)
  printf '%s.%s.%s' "$header" "$claims" "$(printf '%s.%s' "$header" "$claims" | openssl dgst -sha384 -sign "$KEY" -binary | base64url)"
}

token() {
  local endpoint
  endpoint=$(curl -sf "$BASE/fhir/.well-known/smart-configuration" | member token_endpoint)
  curl -sf "$endpoint" \
    --data-urlencode grant_type=client_credentials \
    --data-urlencode "scope=$SCOPES" \
    --data-urlencode client_assertion_type=urn:ietf:params:oauth:client-assertion-type:jwt-bearer \
    --data-urlencode "client_assertion=$(assertion "$endpoint")" | member access_token
}

# Says what it asks for and how it is answered. The token goes by standard input: a list of processes shows arguments.
ask() {
  local what=$1
  shift
  printf '%s: %s\n' "$what" "$(printf 'header = "Authorization: Bearer %s"' "$TOKEN" | curl -s -K - -o /dev/null -w '%{http_code}' "$@")"
}

call() {
  local examples=$here/../requests/one-observation
  TOKEN=$(token)
  ask 'an irrigation is opened' "$BASE/episodes" -H 'Content-Type: application/json' --data-binary "@$examples/01-open-the-episode.json"
  ask 'an Observation is posted' "$BASE/fhir/Observation" -H 'Content-Type: application/fhir+json' --data-binary "@$examples/02-create.json"
  ask 'Observations are read' "$BASE/fhir/Observation?_count=1"
  ask 'flags were not granted' "$BASE/fhir/Flag"
  TOKEN=''
  ask 'nothing without a token' "$BASE/fhir/Observation"
}

case ${1:-} in
  register | call) "$1" ;;
  *) sed -n '2,7s/^# \{0,1\}//p' "$0" ;;
esac
