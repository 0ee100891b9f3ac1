#!/bin/sh
# Verify the signature of a record with nothing but a shell and openssl.
#   sh verify_with_openssl.sh LOT.record.jsonl LOT.public.pem
# The last line is a detached JWS (RFC 7515 appendix F, RFC 7797): what is signed is
# its protected header, a dot, and every line before it.
set -eu
record=$1 public=$2
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
last=$(tail -n 1 "$record")
{ printf '%s.' "${last%%.*}"; head -n -1 "$record"; } > "$work/signed"
raw=$(printf '%s==' "${last##*.}" | tr '_-' '/+' | head -c 88 |
    openssl base64 -d -A | od -An -v -tx1 | tr -d ' \n')
printf 'asn1=SEQUENCE:s\n[s]\nr=INTEGER:0x%s\ns=INTEGER:0x%s\n' \
    "$(echo "$raw" | cut -c1-64)" "$(echo "$raw" | cut -c65-128)" > "$work/der.cnf"
openssl asn1parse -genconf "$work/der.cnf" -noout -out "$work/signature"
openssl dgst -sha256 -verify "$public" -signature "$work/signature" "$work/signed"
