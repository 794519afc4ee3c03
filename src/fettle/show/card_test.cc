#include "fettle/show/card.h"

#include <gtest/gtest.h>

#include "fettle/base/json.h"
#include "fettle/show/gauge.h"

namespace fettle::show {
namespace {

std::string shown(const Proposal& act) {
    std::string out = "<" + std::string(name_of(act.act));
    for (const Argument& a : act.arguments) out += " " + a.name + "=" + a.value;
    return out + ">";
}

workshop::EraseQuestion question() {
    workshop::EraseQuestion q;
    q.device.path = "/dev/sdz";
    q.device.serial = "4C53";
    q.device.serial_of = "the card";
    q.device.size_bytes = 32'000'000'000;
    q.on_it = {"MBR", "FAT32 'OWNER MAP'"};
    q.known.add({"serial-of-reader", Verdict::mind, "the serial is the reader's", "/dev/sdz", "system"});
    return q;
}

TEST(ShowCard, WhoIsAskedSeesWhatWouldBeLost) {
    const std::string page = erase_page(question());
    EXPECT_NE(page.find("  serial    4C53 (of the card)\n"), std::string::npos) << page;
    EXPECT_NE(page.find("32.0 GB (30,518 MiB)"), std::string::npos) << page;
    EXPECT_NE(page.find("  on it     MBR\n            FAT32 'OWNER MAP'\n  lost      all of it\n"), std::string::npos)
        << page;
    EXPECT_NE(page.find("  mind      the serial is the reader's\n"), std::string::npos);
}

TEST(ShowCard, SafeToPullOnlyWhenReadBackPastTheMemory) {
    workshop::LaidCard c;
    c.release.release = "27.3.118";
    c.target = "/dev/sdz";
    c.erased = question();
    EXPECT_EQ(laid(c).headline, "Laid 27.3.118 on /dev/sdz and read every byte back.");
    c.laid.cold = true;
    c.card = 2;
    c.cards = 3;
    c.family.id = "pelm";
    const Answer a = laid(c);
    EXPECT_EQ(a.headline, "Laid card 2 of 3 of 27.3.118 for pelm on /dev/sdz and read every byte back. Safe to pull.");
    EXPECT_EQ(a.level, "L0");
    EXPECT_EQ(a.data.at("device").at("serial").as_string(), "4C53");
}

TEST(ShowCard, DevicesThatAreNoCardAreLeftOutAndCounted) {
    workshop::DeviceList list;
    list.devices.push_back({question().device, {}});
    list.devices.push_back({question().device, {}});
    list.devices[1].judgement.add({"device-is-a-disk", Verdict::halt, "is a disk", "/dev/sda", "system"});
    const Answer a = devices(list, false);
    EXPECT_EQ(a.headline, "One device here may be a card.");
    EXPECT_NE(a.text.text(shown).find("1 other is left out"), std::string::npos);
    EXPECT_EQ(a.data.at("devices").as_array().size(), 2u);
    EXPECT_NE(devices(list, true).text.text(shown).find("is a disk"), std::string::npos);
}

TEST(ShowGauge, ASoundCardIsToBePulledAndReadOnceMore) {
    workshop::GaugedCard c;
    c.device = question().device;
    c.gauged.plan.card_bytes = c.device.size_bytes;
    c.gauged.first = card::Seen{};
    c.gauged.first->sectors = c.gauged.first->right = 9;
    const std::string text = gauged(c).text.text(shown);
    EXPECT_NE(text.find("then: <gauge-card device=/dev/sdz again=>\n"), std::string::npos) << text;
    c.gauged.first->right = 8;
    EXPECT_EQ(gauged(c).text.text(shown).find("gauge-card"), std::string::npos);
}

}  // namespace
}  // namespace fettle::show
