// The seal: an Ed25519 signature over every byte of a sheet before the seal block. It proves that the sheet is
// unchanged since whoever holds key K sealed it; it does not prove that what the sheet says is true. seal() and check()
// are pure; shop_key() and known_key() touch the keys folder.
#pragma once

#include <filesystem>
#include <string>
#include <string_view>

#include "fettle/base/bytes.h"
#include "fettle/base/result.h"

namespace fettle::handover {

// Puts the seal block in front of the page's final "</body></html>". seed: 32 secret bytes. check_with: how a customer
// has it checked, as HTML-safe words ("fettle handover check"); part of the sealed bytes, so it is the same for good.
std::string seal(std::string_view html, ByteView seed, std::string_view check_with);

enum class Seal { unchanged, changed, none };

struct Checked {
    Seal seal = Seal::none;
    std::string public_key;    // hex; empty without a seal
    std::string fingerprint;   // as base's key_fingerprint
    std::string sheet_sha256;  // of the whole file
    std::string why;           // what was found
};
// Any bytes. Anything after or within the seal block that seal() with the same `check_with` would not have written
// counts as changed.
Checked check(std::string_view file, std::string_view check_with);

// The shop's own key: HOME/keys/shop.seed (64 hex digits, mode 0600), made on first use. The public half stands beside
// it as HOME/keys/known/shop.pub. outside_error when it cannot be made; bad_input when it is no key.
struct ShopKey {
    Bytes seed;
    std::string fingerprint;
    bool made_now = false;
};
Result<ShopKey> shop_key(const std::filesystem::path& keys_folder);

// The name under which a public key (hex) is known here (file HOME/keys/known/NAME.pub), or empty.
std::string known_as(const std::filesystem::path& keys_folder, std::string_view public_key_hex);

}  // namespace fettle::handover
