// A reader of FAT12, FAT16, FAT32 and exFAT volumes for hostile cards: every length is checked before it is used, every
// chain ends, memory stays below 100 MiB whatever the card holds or claims. It reads and never writes. The audit
// reports the flaws it meets; the stand-in only wants the files.
#pragma once

#include <array>
#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/bytes.h"
#include "fettle/base/result.h"
#include "fettle/card/block_device.h"
#include "fettle/card/geometry.h"

namespace fettle::card {

// --- partition table -------------------------------------------------------------------------------------------------

struct Partition {
    std::uint8_t type = 0;
    std::uint64_t start = 0;    // sectors
    std::uint64_t sectors = 0;  // as the table says, not clipped to the device
    unsigned entry = 1;         // of the table's entries, from 1
};

enum class TableKind { none, mbr, gpt };

struct Table {
    TableKind kind = TableKind::none;  // none: sector 0 is a volume's boot sector, or nothing known
    std::vector<Partition> partitions;
};

// Sector 0, and on a GPT card the first 128 entries of its primary table. Errors are the device's own.
Result<Table> read_table(BlockDevice& device);

// The file system whose mark stands at this place, by its magic: "FAT", "exFAT", "NTFS", "ext2", "ext3", "ext4",
// "HFS+", "APFS", "ISO 9660", … Empty: none known. Reads at most 64 KiB + 4 KiB.
std::string file_system_at(BlockDevice& device, std::uint64_t at_bytes);

// --- volume ----------------------------------------------------------------------------------------------------------

// The boot sector's figures, as they stand. Sectors are of `bytes_per_sector`. Of exFAT's boot sector the fields with
// the same meaning; `reserved` is its FatOffset.
struct BootSector {
    std::uint32_t bytes_per_sector = 0;
    std::uint32_t sectors_per_cluster = 0;
    std::uint32_t reserved = 0;
    std::uint32_t fat_copies = 0;
    std::uint32_t root_entries = 0;
    std::uint64_t total_sectors = 0;
    std::uint64_t fat_sectors = 0;
    std::uint32_t hidden = 0;
    std::uint32_t root_cluster = 0;
    std::uint32_t fsinfo_sector = 0;
    std::uint32_t backup_sector = 0;
    std::uint32_t serial = 0;
    std::uint16_t ext_flags = 0;         // FAT32: bit 7: only the copy in bits 0 to 3 is kept up
    std::uint16_t version = 0;           // FAT32: BPB_FSVer
    std::string label;                   // blanks trimmed
    bool wide = false;                   // laid out as FAT32 (no root entries, no 16-bit FAT size)
    std::uint64_t clusters = 0;          // computed
    FatType type = FatType::fat12;       // by the cluster count alone; or exfat
    std::uint64_t heap_sector = 0;       // exFAT: where cluster 2 begins
    std::uint16_t volume_flags = 0;      // exFAT: bit 0 second FAT is active, 1 dirty, 2 media failure
    std::uint64_t partition_offset = 0;  // exFAT: where the volume says it starts; 0: it does not say

    std::uint64_t cluster_bytes() const { return std::uint64_t{sectors_per_cluster} * bytes_per_sector; }
    std::uint64_t root_sectors() const;
    std::uint64_t first_data_sector() const;
};

// bad_input `boot-sector-wrong` names the field, what it holds and what is allowed.
Result<BootSector> parse_boot_sector(ByteView sector);
// Likewise exFAT's (specification 3.1).
Result<BootSector> parse_exfat_boot_sector(ByteView sector);

enum class FlawKind {
    chain_crossed,   // runs into a cluster that something else holds already
    chain_circular,  // comes back to itself
    chain_short,     // ends before the file's size
    chain_long,      // goes on beyond the file's size
    chain_broken,    // free, bad or out-of-range cluster inside a chain
    past_the_end,    // clusters beyond the end of the device
    bad_name,        // characters no FAT name may have, or a damaged long name
    long_name_sum,   // long name whose checksum is not that of its short name
    bad_folder,      // "." or ".." missing or wrong, folder with a size, folder without clusters
    name_twice,      // two entries of one folder with the same name
    set_damaged,     // exFAT: an entry set with a wrong sum or out of order; readers pass it over
    name_hash,       // exFAT: the name's hash is wrong; readers that look by it do not find the file
    system_damaged,  // exFAT: bitmap or up-case table missing or wrong
    too_many,        // more entries, depth or name bytes than this reader takes
    unreadable,      // the device did not give the bytes
};

struct Flaw {
    FlawKind kind;
    std::string path;
    std::string text;  // a clause: what was found
};

// A file or folder.
struct Node {
    std::string path;        // "folder/name.ext", long name where there is one
    std::string short_name;  // "NAME.EXT"
    bool folder = false;
    bool hidden = false;
    bool system = false;
    std::uint32_t first_cluster = 0;
    std::uint64_t size = 0;   // folders: 0
    std::uint64_t valid = 0;  // exFAT: bytes that were written; what follows reads as zeros. Elsewhere: size
    std::uint64_t at = 0;     // bytes from the card's start where its data begins; 0 if it has none
    bool contiguous = false;  // exFAT: one run of clusters, the FAT holds nothing of it
    bool whole = false;       // its chain is as long as its size wants, in range, and shared with nothing met before
};

struct Listing {
    std::vector<Node> nodes;           // in the order met: a folder's entries, then those of its folders
    std::vector<Flaw> flaws;           // the first 1,000
    std::uint64_t flaws_left_out = 0;  // further ones
    std::string label;                 // from the root folder's first label entry, else empty
    unsigned labels = 0;               // label entries in the root folder
    std::uint64_t clusters_used = 0;   // reached from the root
    std::uint64_t clusters_lost = 0;   // marked used in the FAT (exFAT: in the bitmap), reached from nowhere
    std::uint64_t clusters_free = 0;
    std::uint64_t clusters_unmarked = 0;  // exFAT: reached from the root, marked free in the bitmap
    std::uint64_t clusters_bad = 0;       // marked bad in the FAT
    bool counted = false;                 // whether lost, free, bad and unmarked were counted

    const Node* find(std::string_view path) const;  // exact path; nullptr if there is none
};

class Volume {
public:
    // The first partition with a FAT or exFAT volume, or the whole device if there is no table. bad_input:
    // `no-fat-volume` (names the file system found instead), `boot-sector-wrong`, `fat-type-unclear`. The device must
    // outlive the volume.
    static Result<Volume> open(BlockDevice& device);
    // read_as: what the boot sector's layout says where the cluster count says otherwise (`fat-type-unclear` without
    // it, because readers take such a volume differently).
    static Result<Volume> open_at(BlockDevice& device, std::uint64_t at_bytes,
                                  std::optional<FatType> read_as = std::nullopt);

    Volume(Volume&&) noexcept;
    Volume& operator=(Volume&&) noexcept;
    ~Volume();

    const BootSector& boot() const;
    FatType type() const { return boot().type; }
    FatType read_as() const;         // how it is read
    std::uint64_t at_bytes() const;  // where the volume starts on the device

    // Everything reachable from the root, with every flaw met. `outside` only if the root itself cannot be read.
    // scan_fat: also counts lost and free clusters, which reads the whole FAT.
    Result<Listing> list(bool scan_fat = false);

    // Gives exactly node.size bytes to the sink, in blocks of at most 1 MiB. bad_input `file-broken` when the chain
    // does not hold them.
    Status read(const Node& node, const std::function<Status(ByteView)>& sink);
    // Likewise, each block in a buffer that `buffer` gives and `take` keeps: nothing is copied.
    Status read_into(const Node& node, const std::function<Bytes()>& buffer, const std::function<Status(Bytes)>& take);

    // The whole file, refused when larger than limit_bytes (`file-too-large`).
    Result<Bytes> read_all(const Node& node, std::uint64_t limit_bytes);

    // One entry of a FAT copy (28 bits on FAT32, 32 on exFAT).
    Result<std::uint32_t> fat_entry(std::uint32_t cluster, std::uint32_t copy = 0);

    struct State;

private:
    explicit Volume(std::unique_ptr<State> s);
    std::unique_ptr<State> state_;
};

// A name as FAT compares it: NFC, then each code point's simple upper case. For finding, never for showing.
std::string name_key(std::string_view utf8);

}  // namespace fettle::card
