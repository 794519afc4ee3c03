#include "fettle/handover/seal.h"

#include <fmt/format.h>

#include <optional>

#include "fettle/base/digest.h"
#include "fettle/base/ed25519.h"

namespace fettle::handover {
namespace {

constexpr std::string_view kEnd = "</body>\n</html>\n";
constexpr std::string_view kOpen = "<section class=\"seal\" data-fettle-seal=\"1\" data-key=\"";
constexpr std::string_view kMiddle = "\" data-signature=\"";
constexpr std::size_t kKeyHex = 64, kSignatureHex = 128;

// Every byte from the seal block to the end of the file follows from key and signature, so that nothing can be added or
// reworded there without being seen.
std::string block(const std::string& key_hex, const std::string& signature_hex, const std::string& fingerprint,
                  std::string_view check_with) {
    return fmt::format(
        "{}{}{}{}\">\n"
        "<h2>Seal</h2>\n"
        "<p>Sealed by key <b>{}</b>. If <code>{}</code> says <i>unchanged</i>, this sheet is byte for byte as it was "
        "when the holder of that key sealed it. The seal does not prove that what the sheet says is true, nor who "
        "holds the key: compare the sixteen characters with those the workshop gives you.</p>\n"
        "<p class=\"hex\">key {}<br>signature {}</p>\n"
        "</section>\n{}",
        kOpen, key_hex, kMiddle, signature_hex, fingerprint, check_with, key_hex, signature_hex, kEnd);
}

// The piece of text of that length at that place, if it is all lower-case hex.
std::optional<std::string> hex_at(std::string_view text, std::size_t at, std::size_t length) {
    if (at > text.size() || text.size() - at < length) return std::nullopt;
    const std::string_view part = text.substr(at, length);
    for (char c : part) {
        if (!((c >= '0' && c <= '9') || (c >= 'a' && c <= 'f'))) return std::nullopt;
    }
    return std::string(part);
}

}  // namespace

std::string seal(std::string_view html, ByteView seed, std::string_view check_with) {
    if (html.ends_with(kEnd)) html.remove_suffix(kEnd.size());
    const Bytes key = ed25519_public(seed);
    const Bytes signature = ed25519_sign(seed, as_bytes(html));
    return std::string(html) + block(hex(key), hex(signature), key_fingerprint(key), check_with);
}

Checked check(std::string_view file, std::string_view check_with) {
    Checked out;
    out.sheet_sha256 = sha256_hex(file);
    const std::size_t at = file.rfind(kOpen);
    if (at == std::string_view::npos) {
        out.why = "there is no seal on this file";
        return out;
    }
    out.seal = Seal::changed;
    const auto key_hex = hex_at(file, at + kOpen.size(), kKeyHex);
    const std::size_t signature_at = at + kOpen.size() + kKeyHex + kMiddle.size();
    const auto signature_hex = hex_at(file, signature_at, kSignatureHex);
    if (!key_hex || !signature_hex) {
        out.why = "the seal itself was changed: it holds no key and signature";
        return out;
    }
    const Bytes key = *unhex(*key_hex);
    out.public_key = *key_hex;
    out.fingerprint = key_fingerprint(key);
    if (file.substr(at) != block(*key_hex, *signature_hex, out.fingerprint, check_with)) {
        out.why = "something was changed in the seal block or added after it";
    } else if (!ed25519_verify(key, as_bytes(file.substr(0, at)), *unhex(*signature_hex))) {
        out.why = "the sheet, the key or the signature was changed after it was sealed";
    } else {
        out.seal = Seal::unchanged;
        out.why = "every byte is as it was when key " + out.fingerprint + " sealed it";
    }
    return out;
}

}  // namespace fettle::handover
