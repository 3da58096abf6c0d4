/*!
 * Copyright (c) 2023 Paul Miller (paulmillr.com)
 * SPDX-License-Identifier: MIT OR Apache-2.0
 */
/**
 * Minimal QR decoder budgeted for live camera frames. Source conversion and
 * conversion writes directly into reusable native luma storage.
 * The scanner builds a four-level grayscale pyramid, then lazily binarizes and
 * searches from the coarsest useful layer toward native resolution. Sampling
 * can return to native luma after cheaper low-resolution finder detection.
 * @module
 */
import type { Size } from './index.ts';
export type { Size } from './index.ts';
export type Image = Size & {
    data: Uint8Array | Uint8ClampedArray;
};
export type Point = {
    x: number;
    y: number;
};
export type Quad = [Point, Point, Point, Point];
export type FinderPoint = Point & {
    moduleSize: number;
    corners: Quad;
};
export type FinderPoints = {
    tl: FinderPoint;
    tr: FinderPoint;
    /** Projected virtual fourth finder-center position. */
    br: Point;
    bl: FinderPoint;
    /** Alignment patterns actually located during this sampling attempt. */
    aligners: FinderPoint[];
    /** Projected outer QR edges, clockwise from top-left. */
    bounds: Quad;
    /** Projected QR edges plus one module of overlay padding. */
    outline: Quad;
    /** Axis-aligned bounds of the finder-derived QR square. */
    boundingBox: {
        x: number;
        y: number;
        width: number;
        height: number;
    };
};
export type DecodeFormat = 'RGB' | 'I420' | 'I420P10' | 'I420P12' | 'I420A' | 'I422' | 'I444' | 'NV12' | 'RGBA' | 'RGBX' | 'BGRA' | 'BGRX';
export type DecodeOpts = {
    /**
     * Source pixel format. Planar formats read a tight Y plane at offset zero;
     * following chroma/alpha planes are ignored. RGB/RGBA is detected by exact
     * data length when omitted.
     */
    format?: DecodeFormat;
    /** Retry-effort tier; one keeps only mandatory work, larger values admit more hypotheses. */
    effort?: number;
    /** Milliseconds available to optional retries; defaults to one 60-FPS frame budget. */
    timeLimit?: number;
    /** Custom byte-to-text decoder used for byte segments; receives the active ECI designator. */
    textDecoder?: (bytes: Uint8Array, eci?: number) => string;
    /**
     * Fired once when a QR search succeeds or terminally fails with finder/alignment points in
     * input-image coordinates and its decoded string or failure.
     */
    pointsOnDetect?: (points: FinderPoints, result: string | Error) => void;
    /**
     * Fired with the final sampled module grid as a 1px-per-module RGBA image after a successful
     * decode.
     */
    imageOnResult?: (img: Image) => void;
    /**
     * Debug: fired with each binarized plane as an RGBA image, right before
     * detection runs on it — exactly what the pipeline sees. Fires once per
     * active layer reached before success; each call allocates a fresh W*H*4
     * buffer the caller owns. Costs nothing when unset.
     */
    imageOnBitmap?: (img: Image) => void;
};
export type QRScannerOpts = DecodeOpts & {
    maxSize: Size;
    /** Bytes reserved per maximum-size input pixel for direct external writes. */
    stride?: number;
};
/** Internal row layout used by DOM VideoFrame ingestion. */
export type _QRLayout = {
    offset: number;
    stride: number;
};
export type _QRLayer = {
    bitmap: Uint32Array;
    blockHeight: number;
    blockWidth: number;
    blocks: Uint8Array;
    cuts: Int16Array;
    height: number;
    luma: Uint8Array;
    patternCount: number;
    patterns: Float64Array;
    used: boolean;
    width: number;
    words: number;
};
export type _QRPlane = readonly [xShift: 0 | 1, yShift: 0 | 1, bytes: 1 | 2 | 3 | 4];
export type _QRInputFormat = {
    step: 1 | 2 | 3 | 4;
    bits: 8 | 10 | 12;
};
export type DecodeResult = string | Error;
export type DecodeQR = (img: Image, opts?: DecodeOpts) => string;
/**
 * Reusable decode state for DOM helpers and advanced integrations.
 * Operations are exclusive: while `decodeAsync()` is pending, staging, decoding, and cleaning
 * throw until that promise settles.
 * Most users should call {@link decodeQR} or use the utilities from `qr/dom.js`.
 */
export declare class _QRScanner {
    readonly layers: _QRLayer[];
    readonly opts: Readonly<QRScannerOpts>;
    width: number;
    height: number;
    luma: Uint8Array;
    private grid;
    private readonly tmp8;
    private readonly codewords;
    private readonly tmp32;
    private readonly tmp64;
    private readonly payload;
    private readonly image;
    private readonly input;
    private inFlight;
    private staged;
    private resized;
    private readonly triple;
    private blocked;
    private readonly effort;
    private readonly timeLimit;
    private retryStart;
    private retries;
    private points?;
    private readonly map;
    private readonly from;
    private readonly to;
    private readonly alignPoint;
    private readonly finePlane;
    private invertedProjection;
    private decodedSize;
    private beginOperation;
    private endOperation;
    constructor(init: QRScannerOpts);
    protected decodePayload(data: Uint8Array, dataLen: number, version: number): DecodeResult;
    private mapQuad;
    private mapFinderQuad;
    private setAlignments;
    /** Convert one source image into the preallocated native luma layer. */
    addImage(img: Image, format?: DecodeFormat | undefined): void;
    private stage;
    clean(): void;
    /** Process pixels that an integration wrote directly into {@link luma}. */
    processImage(size: Size, format?: DecodeFormat, layout?: _QRLayout): void;
    private read;
    private perspective;
    private searchAlign;
    private excluded;
    private exclude;
    private retain;
    private makeTriple;
    private pickPolarity;
    private timing;
    private findBasicAlign;
    private report;
    private upgrade;
    private decodeGrid;
    private projectQuad;
    private projectMap;
    private confirm;
    private projectWith;
    private scan;
    private walk;
    decode(all?: boolean): DecodeResult[];
    decodeAsync(all?: boolean): Promise<DecodeResult[]>;
}
/**
 * Decodes the first QR through the fixed coarse-to-fine pyramid scan.
 */
export declare const decodeQR: DecodeQR;
/** Decode every QR in each image through one cooperatively scheduled maximum-capacity scanner. */
export declare const decodeQRBatch: (images: readonly Image[], opts?: DecodeOpts & {
    maxSize?: Size;
}) => Promise<DecodeResult[][]>;
/**
 * [BarcodeDetector](https://wicg.github.io/shape-detection-api/#barcode-detection-api)
 * ponyfill on top of `decodeQR`. Ponyfill: importing it has no side effects;
 * to install as a drop-in polyfill do `globalThis.BarcodeDetector ??= BarcodeDetector`.
 *
 * Differences from native implementations:
 * - only the `qr_code` format is supported;
 * - at most one barcode per image is returned (`decodeQR` stops at the first hit);
 * - `cornerPoints` reuse the decoder-projected symbol boundary and remain estimates
 *   of the visible barcode edges.
 */
/** Barcode formats of the Shape Detection API spec enum. */
declare const BARCODE_FORMATS: readonly ['aztec', 'code_128', 'code_39', 'code_93', 'codabar', 'data_matrix', 'ean_13', 'ean_8', 'itf', 'pdf417', 'qr_code', 'unknown', 'upc_a', 'upc_e'];
/** A member of the spec's BarcodeFormat enum. Only `'qr_code'` is ever detected. */
export type BarcodeFormat = (typeof BARCODE_FORMATS)[number];
/** Options accepted by the `BarcodeDetector` constructor. */
export type BarcodeDetectorOptions = {
    /** Formats to search for. Values outside the spec enum throw; only `'qr_code'` is detected. */
    formats?: BarcodeFormat[];
};
/** A 2D point in input-image coordinates. */
export interface Point2D {
    x: number;
    y: number;
}
/** A single detection result, shaped like the native `DetectedBarcode`. */
export interface DetectedBarcode {
    /** Axis-aligned rectangle enclosing the detected symbol. */
    boundingBox: DOMRectReadOnly;
    /** Decoded payload. */
    rawValue: string;
    /** Always `'qr_code'` in this ponyfill. */
    format: BarcodeFormat;
    /** Symbol corners, clockwise from top-left. */
    cornerPoints: [Point2D, Point2D, Point2D, Point2D];
}
/**
 * QR-only `BarcodeDetector`, API-compatible with the native class.
 * @param options - Formats filter.
 * @example
 * Detect a QR code on a canvas.
 * ```ts
 * import { BarcodeDetector } from 'qr/decode.js';
 * if (typeof document !== 'undefined') {
 *   const detector = new BarcodeDetector({ formats: ['qr_code'] });
 *   const canvas = document.createElement('canvas');
 *   detector.detect(canvas).then((barcodes) => void barcodes);
 * }
 * ```
 */
export declare class BarcodeDetector {
    private formats;
    constructor(options?: BarcodeDetectorOptions);
    static getSupportedFormats(): Promise<readonly BarcodeFormat[]>;
    detect(image: ImageBitmapSource): Promise<DetectedBarcode[]>;
}
export default decodeQR;
