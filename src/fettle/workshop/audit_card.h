// Is this card good? Read-only, everything in one pass.
#pragma once

#include <optional>
#include <string>

#include "fettle/card/audit.h"
#include "fettle/family/family.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

struct AuditRequest {
    std::string card;     // an image or a device
    std::string release;  // what should be on it, or a folder (a word with a '/'); empty: by the card's own index
    std::string family;   // empty: the release's, or the one whose index stands on the card
    unsigned number = 0;  // which of several cards it should be; 0: whichever it is
    std::string job;      // it is audited for; empty: for none
};

struct AuditedCard {
    std::string card;
    card::Audit audit;
    std::optional<family::Family> family;       // absent: none was named, and no index stands there
    std::optional<std::string> wanted_release;  // what it was held against
    Judgement judgement;                        // the audit's, of what it was held against, and whether it is the job's
};

// For a job also against its family, market and plan (card_of_job.h): a card that is not the job's is a halt.
Result<AuditedCard> audit_card(const Workshop& shop, const AuditRequest& request);

}  // namespace fettle::workshop
