/*!
 * Copyright (c) 2023 Paul Miller (paulmillr.com)
 * SPDX-License-Identifier: MIT OR Apache-2.0
 */
/**
 * QR code generator (encoder). Self-contained (no imports); the decoder and
 * its shared machinery (Bitmap, tables, GF/RS) live in `decode.ts`.
 *
 * What was deliberately dropped vs the full encoder: the tri-state Bitmap
 * drawing DSL, the shared decoder utilities, and verbose validation messages.
 * What was deliberately kept: word-parallel mask penalty scoring over packed
 * bit rows — it is the one optimization whose absence would make
 * large-payload encodes ~5-10x slower while costing only a few hundred
 * bytes — plus a single-slot per-version cache of the symbol template,
 * zigzag order and mask planes (see SymCache).
 * @module
 */
/** Error correction mode. low: 7%, medium: 15%, quartile: 25%, high: 30%. */
export type ErrorCorrection = 'low' | 'medium' | 'quartile' | 'high';
/** QR payload encoding name. */
export type EncodingType = 'numeric' | 'alphanumeric' | 'byte';
/** Supported encoder outputs. */
export type Output = 'raw' | 'ascii' | 'term' | 'gif' | 'svg' | 'data-url';
/** QR version: 1..40, determines symbol size. */
export type Version = number;
/** QR mask pattern index. */
export type Mask = 0 | 1 | 2 | 3 | 4 | 5 | 6 | 7;
/** Width and height pair. */
export type Size = {
    /** Pixel height. */
    height: number;
    /** Pixel width. */
    width: number;
};
/** SVG-specific QR output options. */
export type SvgQrOpts = {
    optimize?: boolean | undefined;
};
/** QR Code generation options. */
export type QrOpts = {
    ecc?: ErrorCorrection | undefined;
    encoding?: EncodingType | undefined;
    textEncoder?: (text: string) => Uint8Array;
    version?: number | undefined;
    mask?: number | undefined;
    border?: number | undefined;
    scale?: number | undefined;
    optimize?: boolean | undefined;
};
/**
 * ISO/IEC 18004:2024 Table 1: total codewords by version (shared with the
 * decoder). Computed as data modules / 8: symbol area minus function
 * patterns (finders+separators+format 191+timing, alignment grid overlaps
 * removed) minus version info for ver >= 7.
 */
declare const BYTES: number[];
/** All error-correction levels, in spec table order (also the packed-table segment order). */
declare const ECC_LEVELS: ErrorCorrection[];
/** ISO/IEC 18004:2024 Table 9: ECC codewords per block, by level (shared with the decoder). */
declare const WORDS_PER_BLOCK: Record<ErrorCorrection, number[]>;
/** ISO/IEC 18004:2024 Table 9: error-correction block count by version and level. */
declare const ECC_BLOCKS: Record<ErrorCorrection, number[]>;
/** ISO/IEC 18004:2024 §7.9.1 Table 12: error-correction-level format indicators. */
declare const EC_CODE: Record<ErrorCorrection, number>;
/** ISO/IEC 18004:2024 Table 5: alphanumeric characters in value order. */
declare const ALPHANUMERIC = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:";
/**
 * Alignment pattern center coordinates for a version (ISO/IEC 18004:2024
 * Annex E). Exported for custom-design renderers (qrbtf-style module
 * classification): every alignment pattern is centered on (cx, cy) for each
 * pair from this list, except where it would overlap a finder pattern.
 * Coordinates are borderless-symbol module indices.
 */
declare function alignmentPatterns(ver: number): number[];
/** BCH-protected masked format word from ISO/IEC 18004:2024 §7.9.1 and Annex C.2. */
declare function formatBits(ecc: ErrorCorrection, mask: number): number;
/** Golay-protected 18-bit version word (ISO/IEC 18004:2024 §7.10 / Annex D.2). */
declare function versionBits(ver: number): number;
/**
 * GF(2^8) exp/log tables with the QR primitive polynomial 0x11d. EXP is
 * doubled so products of two logs index it without a mod. Shared with the
 * decoder (it corrects with the same field the encoder generates parity in);
 * the PURE-annotated initializer lets bundlers drop it for consumers that
 * only import the spec tables above.
 */
declare const GF256: {
    exp: Uint8Array;
    log: Uint8Array;
};
declare function rsEcc(data: Uint8Array, gen: Uint8Array, mul?: Uint8Array): Uint8Array;
declare function detectType(str: string): EncodingType;
declare function encodeData(ver: number, ecc: ErrorCorrection, text: string, type: EncodingType, utf8: Uint8Array | undefined): Uint8Array;
/**
 * ISO/IEC 18004:2024 Table 10 mask predicates, evaluated arithmetically as an
 * 8-bit vector (bit m set when mask predicate m fires at x,y). Shared with
 * the decoder, which tests a single mask's bit to unmask read modules.
 */
declare function maskBits(x: number, y: number): number;
declare const popcnt: (n: number) => number;
type Mat = {
    size: number;
    words: number;
    v: Uint32Array;
};
declare const mat: (size: number) => Mat;
declare const matGet: (m: Mat, x: number, y: number) => number;
declare function penalty(m: Mat, t: Mat): number;
declare function drawSymbol(ver: number, ecc: ErrorCorrection, data: Uint8Array, maskIdx?: number, test?: boolean): Mat;
export declare function _isBytes(a: unknown): a is Uint8Array;
/**
 * Encodes (creates / generates) a QR code. Same outputs as the main module's
 * `encodeQR` for all supported inputs.
 */
export declare function encodeQR(text: string, output: 'raw', opts?: QrOpts): boolean[][];
export declare function encodeQR(text: string, output: 'ascii' | 'term' | 'svg' | 'data-url', opts?: QrOpts): string;
export declare function encodeQR(text: string, output: 'gif', opts?: QrOpts): Uint8Array<ArrayBuffer>;
/** Default export alias for {@link encodeQR}. */
export default encodeQR;
export { ALPHANUMERIC as _ALPHANUMERIC, alignmentPatterns as _alignmentPatterns, BYTES as _BYTES, ECC_BLOCKS as _ECC_BLOCKS, ECC_LEVELS as _ECC_LEVELS, GF256 as _GF256, WORDS_PER_BLOCK as _WORDS_PER_BLOCK, formatBits as _formatBits, maskBits as _maskBits, popcnt as _popcnt, versionBits as _versionBits, };
/** Internal helpers exposed for the test suite only. */
export declare const _tests: {
    mat: typeof mat;
    matGet: typeof matGet;
    penalty: typeof penalty;
    drawSymbol: typeof drawSymbol;
    encodeData: typeof encodeData;
    rsEcc: typeof rsEcc;
    detectType: typeof detectType;
    EC_CODE: typeof EC_CODE;
    versionBits: typeof versionBits;
};
