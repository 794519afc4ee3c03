// Signatures in the Cryptographic Message Syntax (RFC 5652) over OpenSSL: detached, with X.509 certificates (RFC 5280)
// that lead to ones the caller trusts. Says what it found about bytes, names and dates; what follows from that is the
// caller's. Reads no file, no clock and no network: no revocation list is ever looked at.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/bytes.h"
#include "fettle/base/clock.h"
#include "fettle/base/result.h"

namespace fettle {

struct CertificateFacts {
    std::string subject;      // common name, else the whole name in one line; as it stands, so not yet fit for showing
    std::string fingerprint;  // first 16 hex digits of SHA-256 over the certificate, in groups of four
    UnixMs not_before = 0, not_after = 0;
};

// A certificate in PEM (text between BEGIN and END CERTIFICATE). bad_input "certificate-unreadable".
Result<CertificateFacts> certificate_facts(std::string_view pem);

enum class CmsState {
    good,            // every signer's signature holds and every chain leads to a trusted certificate, dates aside
    not_cms,         // neither DER nor PEM of a detached CMS signature
    altered,         // a signature does not hold for these bytes
    unknown_signer,  // a chain leads to no trusted certificate, or a certificate in it may not do what it did
    weak,            // a digest or key that is no longer safe: MD5, SHA-1, RSA below 2048 bits
};

struct CmsAnswer {
    CmsState state = CmsState::not_cms;
    std::string why;                        // for all but good: what exactly, one clause
    std::vector<CertificateFacts> signers;  // good: each different signer once
    // good: the narrowest dates over all certificates of all chains, with the certificate whose date it is.
    CertificateFacts ends_first, begins_last;
};

// trusted: PEM certificates, any of which a chain may end in: a root, one below it, or the signer's own.
CmsAnswer cms_check(ByteView signature, ByteView content, const std::vector<std::string>& trusted);

}  // namespace fettle
