// A release onto a card or into an image, bit-exact, and every byte read back.
#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>

#include "fettle/card/lay.h"
#include "fettle/workshop/card_device.h"
#include "fettle/workshop/card_release.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

struct LayRequest {
    ReleaseAsked what;
    std::string out;               // an image file that is not there yet, or a card's device
    std::uint64_t size_bytes = 0;  // of the image; 0: the smallest that fits. A real card is laid whole
    EraseConsent consent;          // to lose what is on the device
    std::string job;               // it is laid for; empty: for none
};

struct LaidCard {
    card::Laid laid;
    family::Family family;
    family::Release release;
    std::filesystem::path target;
    std::string right;  // by what right the release is on the shelf
    unsigned card = 1, cards = 1;
    std::optional<EraseQuestion> erased;  // of a real card: the device, and what was on it
    Judgement judgement;
};

// Usage errors "erase-not-asked" (a consent for an image), "card-size-wrong" (a size for a real card), and those of
// agree_to_erase(); others as release_to_lay() and card::lay_image(), card::lay_device(). Nothing is written before the
// job is known to be there and somebody agreed.
Result<LaidCard> lay_card(const Workshop& shop, const LayRequest& request);

// "card 2 of 3 of ", or nothing where there is one.
std::string card_words(unsigned card, unsigned cards);

}  // namespace fettle::workshop
