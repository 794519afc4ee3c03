// Ed25519 (RFC 8032) over OpenSSL. Keys and signatures are raw bytes: 32 for a key, 64 for a signature; other lengths
// are refused before any arithmetic.
#pragma once

#include "fettle/base/bytes.h"
#include "fettle/base/result.h"

namespace fettle {

// True only if the signature is valid for this key and message. Wrong lengths are simply not valid.
bool ed25519_verify(ByteView public_key, ByteView message, ByteView signature);

// seed: the 32 secret bytes. Throws std::invalid_argument on another length: a caller's bug.
Bytes ed25519_public(ByteView seed);
Bytes ed25519_sign(ByteView seed, ByteView message);

// 32 bytes from the system's random source.
Bytes ed25519_new_seed();

// First 16 hex digits of SHA-256 over the public key, in groups of four: for people to compare.
std::string key_fingerprint(ByteView public_key);

}  // namespace fettle
